"""How fast the service is: ours, the obvious way and the limit, measured in turn on data made for it."""
