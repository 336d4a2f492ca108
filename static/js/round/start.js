// Starts the round that the page proposes (#round-data, #round-start). Without it the list leads to each check.
