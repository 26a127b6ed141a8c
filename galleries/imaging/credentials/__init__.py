"""Content credentials in a picture: where it comes from, signed; written, and read again.

Nothing here is loaded before it is used: the library is large and most processes never sign.
"""
