"""What is wrong on purpose in each clinic's export, and the rule that must find it."""
