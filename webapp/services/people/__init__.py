"""Signing in, secrets, and the tablets that people sign on."""
