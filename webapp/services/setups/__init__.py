"""Where setups stand, what is asked and answered about them, their sign-off and their record."""
