"""Presentation: prints records as tables, figures and pages, and computes nothing."""
