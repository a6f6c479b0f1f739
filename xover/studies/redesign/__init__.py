"""Redesign: new values, or another topology, for a better sum with parts that exist."""
