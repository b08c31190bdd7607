"""What is told to the outside: the service manager, the mail server."""
