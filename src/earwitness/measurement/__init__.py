"""From files to responses: readers, recognition, calibration, deconvolution, reduction."""
