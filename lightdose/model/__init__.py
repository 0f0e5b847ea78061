"""Nouns: frozen records, checked on construction, without files or clocks."""
