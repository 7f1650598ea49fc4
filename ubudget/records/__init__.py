"""What the laboratory wrote down, as frozen records: register, method, run, finding."""
