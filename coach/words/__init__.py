"""Words: the phrases the coach says and the replies it hears."""
