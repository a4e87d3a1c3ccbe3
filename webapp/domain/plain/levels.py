"""How somebody sets a machine up: alone, or only with a lead beside. The names alone; what a right says of it
stands with rights (`webapp.domain.shop.levels`), what a step says of it with procedures.
"""

ALONE = "alone"
BESIDE = "beside"
LEVELS = (ALONE, BESIDE)
