"""How many UVI are these counts, and how sure are we?"""
