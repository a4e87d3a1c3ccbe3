"""Pages of what the shop is made of: machines, vises, probes, slots, people, steps, and its first evening."""
