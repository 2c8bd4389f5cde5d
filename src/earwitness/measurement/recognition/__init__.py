"""How names, headings and header lines are read: `earwitness.measurement.recognise` puts it together."""
