"""Mixing and bench work: amounts, measures, area, schedule, cautions."""
