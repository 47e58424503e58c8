"""Where the heads stand, what room they take, how they are aligned, and what the line's speed allows."""
