"""Inverse calculations: what must be set, placed or measured to get a wanted light."""
