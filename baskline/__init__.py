"""What does the keeper see and type?"""
