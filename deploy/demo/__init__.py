"""An invented farm group with two seasons of invented counts, to look around in.

Places, people, populations and counts are made up by a seeded simulator; nothing here
was observed, and no place named here exists.
"""
