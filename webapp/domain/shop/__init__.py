"""The shop as data: machines, fixtures, probes, people, slots and their measures."""
