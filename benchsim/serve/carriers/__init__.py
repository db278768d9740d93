"""The media that carry the node link, one a file; serve/carrier.py makes them from how people write them."""
