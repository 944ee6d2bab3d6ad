"""What a caller states and gets: every input and every figure declared once, SI units."""
