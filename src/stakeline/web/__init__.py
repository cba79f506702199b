"""The pages: served on this machine only, nothing asked of the network, one module a page."""
