"""What do the boards say?"""
