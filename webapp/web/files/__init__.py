"""The files of the pages, under one version."""
