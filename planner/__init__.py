"""Preoperative risk stratification and surgical-plan generator for cataract surgery in a training unit."""

__version__ = "0.1.0"
