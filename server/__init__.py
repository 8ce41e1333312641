"""Slackwater: from a learner's answers to a wing-foiling kit that fits, is in stock and is priced to the cent."""
