"""The steps of `deploy/start` and `deploy/check`, for Python alone.

A first part may run as root: packages, the account, the Python environment. The
second part runs as that account, in the environment that the first part made. Each
step looks at what is there before it changes anything.
"""
