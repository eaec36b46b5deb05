"""When: ages and closed days into due times, the state of a check, the round. Pure."""
