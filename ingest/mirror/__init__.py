"""A mirror of the store on a server with the InfluxDB v2 write interface."""
