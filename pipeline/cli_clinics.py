"""Commands about clinics and what they send; each imports its work inside."""
