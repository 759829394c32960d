"""What a picture needs to know of a result: the attributes it reads, and no more.

One room for each file of pictures, under its name.
"""
