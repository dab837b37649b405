"""How long things take, on request. Ratios are what is quoted: machines differ."""
