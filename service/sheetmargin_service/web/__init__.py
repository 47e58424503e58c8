"""Pages and scripts a person sees."""
