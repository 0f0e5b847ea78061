"""Decisions: doses held against coral groups, comparisons, cautions."""
