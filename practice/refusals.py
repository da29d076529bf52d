"""Saying no: the family of exceptions by which verbs refuse what they are asked."""


class Refusal(Exception):
    """A verb will not do this. ``str()`` is the whole sentence for people, with what to do next.

    Each verb module defines its own refusals beside its functions; views show the sentence and answer 4xx.
    """
