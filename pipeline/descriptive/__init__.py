"""The rows that describe a cohort before anything is modelled; one module a table."""
