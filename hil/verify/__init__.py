"""Does a board compute what the laptop computes, and at what cost?"""
