"""Warnings in a notebook's kernel are errors, as everywhere in the tests."""

import os

os.environ["PYTHONWARNINGS"] = "error::UserWarning,error::RuntimeWarning"
