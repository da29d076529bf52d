"""Kits: procedures, findings, bills of materials, cases, trays and the demand they make.

Top layer: it drives the verbs of ``stock`` and never writes its rows.
"""
