"""Where the car should go: ballast, tyres or the place of the push, and what each is worth."""
