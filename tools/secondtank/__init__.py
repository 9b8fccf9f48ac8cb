"""What people run: the `secondtank` command."""
