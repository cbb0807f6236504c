"""What is kept, and who is told?"""
