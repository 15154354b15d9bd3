"""One module per clinic: its cases as the files that its own system would write."""
