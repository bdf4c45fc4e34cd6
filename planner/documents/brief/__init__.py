"""A session's list as it hangs in theatre, and the team brief behind it."""
