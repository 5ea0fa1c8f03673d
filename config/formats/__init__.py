"""How days are written in a language, where Django's own way is not the language's."""
