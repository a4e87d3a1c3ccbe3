"""What the program does when it is called from a terminal:
one module a command, each returns an exit status.
"""
