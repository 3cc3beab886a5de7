"""What the program computes, held against sources outside of it."""
