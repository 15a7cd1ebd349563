package spn

// Load reads the tables anew, for the benchmark of start-up.
func Load() { load() }
