"""An invented shop, a simulated mill and somebody who walks setups on it:
the demo, and what the tests drive.
"""
