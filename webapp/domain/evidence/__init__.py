"""What was signed, how it hangs together, and the tree that proves that it is still there."""
