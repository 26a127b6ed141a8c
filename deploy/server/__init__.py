"""A Debian server made into a public site, kept up, looked over and taken down: deploy/install and its brothers.

Only Python's own library: it runs before there is an environment.
"""
