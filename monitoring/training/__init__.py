"""Reference dishes: drawn animals in known numbers, and how well they are counted.

Plain values in, pictures and figures out; nothing here knows of the site.
"""
