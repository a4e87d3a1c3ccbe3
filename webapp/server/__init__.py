"""The running server: how it starts, reads requests, looks after itself and ends."""
