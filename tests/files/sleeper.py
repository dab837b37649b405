"""Stands for a decoder that does not come back."""

import time

time.sleep(60)
