"""The class on the page: guesses, a hidden change, what is printed."""
