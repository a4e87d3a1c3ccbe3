"""The edge towards browsers: parse, one use case, answer."""
