"""What a set-up will be able to say, before it is measured."""
