"""From files to findings: what comes in, and the one list of build steps."""
