"""What does this UVI mean for the animal?"""
