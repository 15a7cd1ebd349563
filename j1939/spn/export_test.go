package spn

// Load finds the lines of the tables anew, for the benchmark of start-up.
func Load() { newIndex() }

// LoadAll also reads every line.
func LoadAll() { newIndex().all() }
