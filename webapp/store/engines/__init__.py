"""The databases that a shop can be kept in, each behind the same methods; `engine.py` says which."""
