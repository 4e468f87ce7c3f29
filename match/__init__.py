"""Spray-out Match: is this mixed colour close enough, for the room I have?"""
