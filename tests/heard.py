"""What a command said, whatever the width it was broken to: paths are as long as they are."""


def flat(text: str) -> str:
    """One blank for every run of blanks and line ends."""
    return " ".join(text.split())
