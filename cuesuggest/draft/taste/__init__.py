"""What a designer's decisions in several songs say of the house style: compared, tested, tried on songs left out."""
