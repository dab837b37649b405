"""The command line of seamtrue: reads, calls one function of vision, writes, exits."""
