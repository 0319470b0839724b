"""Drawings as SVG text: no script, every text escaped, light and dark by CSS custom properties."""
