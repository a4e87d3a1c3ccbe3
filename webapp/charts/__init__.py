"""Charts drawn on the server with Matplotlib, as SVG that a page can carry under a policy without inline
styles.

Only this room knows Matplotlib. It takes values of the domain and words, and gives text.

Decision: charts are drawn on the server and stripped of style and script, colours by class, points as
links. They work without JavaScript, in both themes, and print; a library in the browser would have done
none of the three. The sealed record carries none, so that its pages stay a function of its files.
"""
