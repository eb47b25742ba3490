"""What a call tells: complaint, cause, correction, confirmation and all they rest on, computed from the record."""

from diag.writeup.story.telling import tell as tell
