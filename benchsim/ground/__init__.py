"""What every room may use: plain values, words, the clock, numbers.  Imports nothing above."""
