"""Where a picture came from and how it was treated before anything was measured.

In: pixels as decoded. Out: `Picture`s with their `Source`s.

- `found`: a picture in a folder, before anybody has said whose it is
- `origin`: one file that a picture was made of; the contract of every source
- `bars`, `overlays`: black bars taken off, and what a screen draws over pictures left out
- `screen`, `straight`: a photographed screen found, and its picture straightened
- `straightened`: views that a display has straightened or merged
- `panes`: a screen that shows several cameras, and each cut out of it
"""
