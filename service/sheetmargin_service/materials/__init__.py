"""Sheet materials and the sheets made of them."""
