"""What ``import lightdose`` offers: the questions that the commands ask, asked in code."""
