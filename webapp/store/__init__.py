"""What is kept: the only room where Peewee lives."""
