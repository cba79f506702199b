"""The campaign store: what lies where, from what it was made, with which settings; resumable."""
