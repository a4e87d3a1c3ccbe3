"""Charts drawn on the server with Matplotlib, as SVG that a page can carry under a policy without inline styles.

Only this room knows Matplotlib. It takes values of the domain and words, and gives text.
"""
