"""The public face: `import xover`. Each name is listed and loaded in `xover/__init__.py`."""
