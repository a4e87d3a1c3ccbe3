"""Everything that proves: keys, signatures, sealed PINs, the PDF's seal and its verifier."""
