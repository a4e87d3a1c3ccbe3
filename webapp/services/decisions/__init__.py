"""What a lead decides about a finished setup: the sign-off or its refusal, and what becomes of its values."""
