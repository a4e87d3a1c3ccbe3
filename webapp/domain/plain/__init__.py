"""What everything else is said in: lengths, axes, times of the shop, strict JSON, refusals."""
