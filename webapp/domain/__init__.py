"""The rules of the job: values in, values or a named error out. No web, database, clock, chance or files."""
