"""What goes over the wire: schemas of requests and answers."""
