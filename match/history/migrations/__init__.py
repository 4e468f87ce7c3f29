"""The steps by which the tables of a history came to be; append only."""
